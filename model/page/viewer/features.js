// What a picked point of a mesh belongs to: a corner, an edge, a flat face, or a round one with its axis.
//
// Owns the snapping. All is in the body's own coordinates; a body is looked through once, when it is first picked.

import { Vector3 } from "three";
import { normalsOf } from "./shape.js";

const CREASE = Math.cos((30 * Math.PI) / 180); // facets of a curve meet at less, faces of a body at more
const FLAT = 0.99995; // cosine within which facets are one plane
const ROUND = 0.02; // of the radius: points of a round face lie no farther off its circle
const LEAST = 12; // triangles of a face from which on it may be round

class Features {
  constructor({ points, triangles }) {
    Object.assign(this, { points, triangles });
    this.unit = normalsOf(points, triangles).unit;
    const size = points.length / 3, first = new Map();
    this.beside = new Int32Array(triangles.length).fill(-1); // the triangle across each edge
    this.sharp = new Uint8Array(triangles.length);
    for (let i = 0; i < triangles.length; i++) {
      const [a, b] = this.ends(i), key = a < b ? a * size + b : b * size + a, other = first.get(key);
      if (other === undefined) first.set(key, i);
      else {
        const f = (i / 3) | 0, g = (other / 3) | 0;
        this.beside[i] = g;
        this.beside[other] = f;
        this.sharp[i] = this.sharp[other] = this.turn(f, g) < CREASE ? 1 : 0;
      }
    }
  }

  ends(i) {
    return [this.triangles[i], this.triangles[i % 3 === 2 ? i - 2 : i + 1]];
  }

  at(v) {
    return new Vector3().fromArray(this.points, 3 * v);
  }

  normal(f) {
    return new Vector3().fromArray(this.unit, 3 * f);
  }

  turn(f, g) {
    const { unit: u } = this;
    return u[3 * f] * u[3 * g] + u[3 * f + 1] * u[3 * g + 1] + u[3 * f + 2] * u[3 * g + 2];
  }

  // The triangles of the face that one of them belongs to: joined over edges that are not sharp.
  face(start) {
    const seen = new Set([start]), list = [start];
    for (let k = 0; k < list.length; k++)
      for (let i = 3 * list[k]; i < 3 * list[k] + 3; i++) {
        const g = this.beside[i];
        if (g >= 0 && !this.sharp[i] && !seen.has(g)) {
          seen.add(g);
          list.push(g);
        }
      }
    return list;
  }

  isFlat(face) {
    return face.every((f) => this.turn(face[0], f) > FLAT);
  }

  // Axis and radius of a round face; null where its points lie on no circle about one line.
  round(face) {
    if (face.length < LEAST) return null;
    // A line square to all normals: the cross product of two that are not alike, tried against the rest.
    const a = this.normal(face[0]);
    let axis = null, best = 0.2;
    for (const f of face) {
      const cross = a.clone().cross(this.normal(f)), length = cross.length();
      if (length > best) [axis, best] = [cross.divideScalar(length), length];
    }
    if (!axis || face.some((f) => Math.abs(axis.dot(this.normal(f))) > 0.02)) return null;
    const u = a.clone().sub(axis.clone().multiplyScalar(a.dot(axis))).normalize(), v = axis.clone().cross(u);
    // Circle by least squares: x2 + y2 = 2 p x + 2 q y + r.
    const flat = [...new Set(face.flatMap((f) => [...this.triangles.subarray(3 * f, 3 * f + 3)]))].map((i) => {
      const p = this.at(i);
      return [p.dot(u), p.dot(v)];
    });
    const n = flat.length, mx = flat.reduce((s, p) => s + p[0], 0) / n, my = flat.reduce((s, p) => s + p[1], 0) / n;
    let xx = 0, xy = 0, yy = 0, xz = 0, yz = 0, zz = 0;
    for (const [x0, y0] of flat) {
      const x = x0 - mx, y = y0 - my, z = x * x + y * y;
      xx += x * x, xy += x * y, yy += y * y, xz += x * z, yz += y * z, zz += z;
    }
    const det = xx * yy - xy * xy;
    if (Math.abs(det) < 1e-9) return null;
    const p = (xz * yy - yz * xy) / (2 * det), q = (yz * xx - xz * xy) / (2 * det);
    const radius = Math.sqrt(p * p + q * q + zz / n);
    if (flat.some(([x, y]) => Math.abs(Math.hypot(x - mx - p, y - my - q) - radius) > ROUND * radius)) return null;
    const origin = u.clone().multiplyScalar(mx + p).addScaledVector(v, my + q);
    return { origin, axis, radius };
  }

  // Sharp edges of a face, as pairs of points.
  *edges(face) {
    for (const f of face)
      for (let i = 3 * f; i < 3 * f + 3; i++)
        if (this.sharp[i] || this.beside[i] < 0) {
          const [a, b] = this.ends(i);
          yield [this.at(a), this.at(b)];
        }
  }
}

const known = new WeakMap();
const featuresOf = (mesh) => known.get(mesh) ?? known.set(mesh, new Features(mesh)).get(mesh);

// What a point on triangle `f` snaps to. `near(p)` is how far p is from the pointer, in points of the picture; what is
// nearer than `reach` holds: corners before edges before the face. Answers { kind, point, way?, radius? }.
export function snap(mesh, f, point, near, reach) {
  const all = featuresOf(mesh), face = all.face(f);
  const flat = all.isFlat(face), round = flat ? null : all.round(face);
  let corner = null, edge = null, cornerAt = reach, edgeAt = reach;
  // Facets of a rim are no corners to a builder: a corner counts where its two edges turn.
  const turns = new Map();
  for (const [a, b] of all.edges(face)) {
    const way = b.clone().sub(a).normalize();
    for (const [p, other] of [[a, way], [b, way]]) {
      const key = p.toArray().join();
      if (!turns.has(key)) turns.set(key, { p, ways: [] });
      turns.get(key).ways.push(other);
    }
    const along = b.clone().sub(a), length2 = along.lengthSq();
    const t = length2 ? Math.min(1, Math.max(0, point.clone().sub(a).dot(along) / length2)) : 0;
    const on = a.clone().addScaledVector(along, t), far = near(on);
    if (far < edgeAt) [edge, edgeAt] = [{ kind: "edge", point: on, way }, far];
  }
  for (const { p, ways } of turns.values()) {
    if (ways.length > 1 && Math.abs(ways[0].dot(ways[1])) > CREASE) continue;
    const far = near(p);
    if (far < cornerAt) [corner, cornerAt] = [{ kind: "corner", point: p }, far];
  }
  if (corner) return corner;
  if (edge) return edge;
  if (flat) return { kind: "face", point, way: all.normal(f) };
  if (round) {
    const { origin, axis, radius } = round;
    return { kind: "axis", point: origin.clone().addScaledVector(axis, point.clone().sub(origin).dot(axis)), way: axis, radius };
  }
  return { kind: "point", point };
}
