"""The arithmetic of the searches that go step by step, compiled: costs carried along a lattice, and the least move.

Owns the loops behind `lattice` and `improve`, which say what the figures mean.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.tubes.compiled import kernel

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]


@kernel("void(f4[:,:,::1], i8, f4, i8, i8, i8, i2[:,:,::1], f4[:,:,::1])")
def take_offer(
    state: Floats32, steps: int, length: np.float32, di: int, dj: int, dk: int, runs: NDArray[np.int16], best: Floats32
) -> None:
    """Lower `best` to what a free leg of so many steps (of so many mm in all) from each state comes to."""
    n = best.shape
    for i in range(max(0, di * steps), min(n[0], n[0] + di * steps)):
        for j in range(max(0, dj * steps), min(n[1], n[1] + dj * steps)):
            for k in range(max(0, dk * steps), min(n[2], n[2] + dk * steps)):
                if runs[i, j, k] >= steps:
                    best[i, j, k] = min(best[i, j, k], state[i - di * steps, j - dj * steps, k - dk * steps] + length)


@kernel("void(f4[:,:,::1], i8, i8, i8, f4[:,:,::1])")
def carry(edge: Floats32, di: int, dj: int, dk: int, best: Floats32) -> None:
    """Carry `best` on along a direction, a step at a time, each at the cost `edge` of arriving."""
    n = best.shape
    for p in range(abs(di), n[0]):
        i = n[0] - 1 - p if di < 0 else p
        for q in range(abs(dj), n[1]):
            j = n[1] - 1 - q if dj < 0 else q
            for r in range(abs(dk), n[2]):
                k = n[2] - 1 - r if dk < 0 else r
                best[i, j, k] = min(best[i, j, k], best[i - di, j - dj, k - dk] + edge[i, j, k])


@kernel("void(f8[:,::1], f8[::1], i8, f8[::1])")
def least_move(a: Floats, asked: Floats, sweeps: int, x: Floats) -> None:
    """Fill x with the shortest vector with a @ x >= asked, as near as it can be had (Hildreth's method)."""
    n, m = a.shape
    dual, size = np.zeros(n), np.zeros(n)
    for i in range(n):
        for k in range(m):
            size[i] += a[i, k] * a[i, k]
    for k in range(m):
        x[k] = 0.0
    for _ in range(sweeps):
        worst = 0.0
        for i in range(n):
            if size[i] <= 1e-12:
                continue
            along = 0.0
            for k in range(m):
                along += a[i, k] * x[k]
            step = max(-dual[i], (asked[i] - along) / size[i])
            dual[i] += step
            for k in range(m):
                x[k] += step * a[i, k]
            worst = max(worst, math.fabs(step))
        if worst < 1e-9:
            break
