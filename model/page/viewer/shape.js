// From a welded mesh to what is drawn: a normal for every corner, smooth over facets of curves, and the lines of edges.

import { BufferAttribute, BufferGeometry } from "three";

const CREASE = Math.cos((40 * Math.PI) / 180); // as `writers/shading.py`: wider than facets of a curve, narrower than a chamfer
const CROWDED = 160; // triangles at one point from which on it is the middle of a flat disc, and averaging is not worth it

export function shapeOf({ points, triangles }) {
  const count = triangles.length / 3;
  const flat = new Float32Array(3 * count); // unit normals
  const area = new Float32Array(count);
  for (let f = 0; f < count; f++) {
    const [a, b, c] = [3 * triangles[3 * f], 3 * triangles[3 * f + 1], 3 * triangles[3 * f + 2]];
    const ux = points[b] - points[a], uy = points[b + 1] - points[a + 1], uz = points[b + 2] - points[a + 2];
    const vx = points[c] - points[a], vy = points[c + 1] - points[a + 1], vz = points[c + 2] - points[a + 2];
    const x = uy * vz - uz * vy, y = uz * vx - ux * vz, z = ux * vy - uy * vx;
    const length = Math.hypot(x, y, z) || 1;
    area[f] = length;
    flat[3 * f] = x / length;
    flat[3 * f + 1] = y / length;
    flat[3 * f + 2] = z / length;
  }
  const start = new Uint32Array(points.length / 3 + 1);
  for (const v of triangles) start[v + 1]++;
  for (let v = 0; v < start.length - 1; v++) start[v + 1] += start[v];
  const around = new Uint32Array(triangles.length);
  const filled = start.slice();
  for (let i = 0; i < triangles.length; i++) around[filled[triangles[i]]++] = (i / 3) | 0;

  const position = new Float32Array(3 * triangles.length);
  const normal = new Float32Array(3 * triangles.length);
  for (let i = 0; i < triangles.length; i++) {
    const v = triangles[i], f = (i / 3) | 0;
    const nx = flat[3 * f], ny = flat[3 * f + 1], nz = flat[3 * f + 2];
    let x = 0, y = 0, z = 0;
    if (start[v + 1] - start[v] <= CROWDED)
      for (let k = start[v]; k < start[v + 1]; k++) {
        const g = around[k];
        if (nx * flat[3 * g] + ny * flat[3 * g + 1] + nz * flat[3 * g + 2] < CREASE) continue;
        x += flat[3 * g] * area[g];
        y += flat[3 * g + 1] * area[g];
        z += flat[3 * g + 2] * area[g];
      }
    const length = Math.hypot(x, y, z);
    position.set(points.subarray(3 * v, 3 * v + 3), 3 * i);
    normal.set(length ? [x / length, y / length, z / length] : [nx, ny, nz], 3 * i);
  }
  const surface = new BufferGeometry();
  surface.setAttribute("position", new BufferAttribute(position, 3));
  surface.setAttribute("normal", new BufferAttribute(normal, 3));
  surface.computeBoundingSphere();
  surface.computeBoundingBox();
  return { surface, edges: edgesOf(points, triangles, flat) };
}

function edgesOf(points, triangles, flat) {
  const seen = new Map(); // edge -> the first triangle at it
  const size = points.length / 3;
  const lines = [];
  const add = (a, b) => lines.push(points[3 * a], points[3 * a + 1], points[3 * a + 2], points[3 * b], points[3 * b + 1], points[3 * b + 2]);
  for (let i = 0; i < triangles.length; i++) {
    const f = (i / 3) | 0;
    const a = triangles[i], b = triangles[i % 3 === 2 ? i - 2 : i + 1];
    const key = a < b ? a * size + b : b * size + a;
    const g = seen.get(key);
    if (g === undefined) seen.set(key, f);
    else {
      seen.delete(key);
      const turn = flat[3 * f] * flat[3 * g] + flat[3 * f + 1] * flat[3 * g + 1] + flat[3 * f + 2] * flat[3 * g + 2];
      if (turn < CREASE) add(a, b);
    }
  }
  const out = new BufferGeometry();
  out.setAttribute("position", new BufferAttribute(new Float32Array(lines), 3));
  return out;
}
