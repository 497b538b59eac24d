// From a welded mesh to what is drawn: corners with normals, smooth over facets of curves, and the lines of edges.

import { BufferAttribute, BufferGeometry } from "three";

const CREASE = Math.cos((40 * Math.PI) / 180); // as `writers/shading.py`: wider than facets of a curve, narrower than a chamfer
const CROWDED = 160; // triangles at one point from which on it is the middle of a flat disc, and averaging is not worth it
const ALIKE = 0.9998; // cosine of normals that one corner may stand for

export function shapeOf({ points, triangles }) {
  const flat = normalsOf(points, triangles);
  const surface = new BufferGeometry();
  const { position, normal, index } = corners(points, triangles, flat);
  surface.setAttribute("position", new BufferAttribute(position, 3));
  surface.setAttribute("normal", new BufferAttribute(normal, 3));
  surface.setIndex(new BufferAttribute(index, 1));
  surface.computeBoundingSphere();
  surface.computeBoundingBox();
  const edges = new BufferGeometry();
  edges.setAttribute("position", new BufferAttribute(edgesOf(points, triangles, flat.unit), 3));
  return { surface, edges };
}

// Of each triangle its unit normal, and twice its area.
export function normalsOf(points, triangles) {
  const count = triangles.length / 3;
  const unit = new Float32Array(3 * count);
  const area = new Float32Array(count);
  for (let f = 0; f < count; f++) {
    const a = 3 * triangles[3 * f], b = 3 * triangles[3 * f + 1], c = 3 * triangles[3 * f + 2];
    const ux = points[b] - points[a], uy = points[b + 1] - points[a + 1], uz = points[b + 2] - points[a + 2];
    const vx = points[c] - points[a], vy = points[c + 1] - points[a + 1], vz = points[c + 2] - points[a + 2];
    const x = uy * vz - uz * vy, y = uz * vx - ux * vz, z = ux * vy - uy * vx;
    const length = Math.sqrt(x * x + y * y + z * z) || 1;
    area[f] = length;
    unit[3 * f] = x / length;
    unit[3 * f + 1] = y / length;
    unit[3 * f + 2] = z / length;
  }
  return { unit, area };
}

// A corner for each point and each of the normals it has there.
function corners(points, triangles, { unit, area }) {
  const start = new Uint32Array(points.length / 3 + 1);
  for (const v of triangles) start[v + 1]++;
  for (let v = 0; v < start.length - 1; v++) start[v + 1] += start[v];
  const around = new Uint32Array(triangles.length);
  const filled = start.slice();
  for (let i = 0; i < triangles.length; i++) around[filled[triangles[i]]++] = (i / 3) | 0;

  const position = [], normal = [];
  const index = new Uint32Array(triangles.length);
  const last = new Int32Array(start.length - 1).fill(-1); // the newest corner at a point
  const earlier = []; // and of each corner the one before it at the same point
  for (let i = 0; i < triangles.length; i++) {
    const v = triangles[i], f = 3 * ((i / 3) | 0);
    const nx = unit[f], ny = unit[f + 1], nz = unit[f + 2];
    let x = 0, y = 0, z = 0;
    if (start[v + 1] - start[v] <= CROWDED)
      for (let k = start[v]; k < start[v + 1]; k++) {
        const g = 3 * around[k], share = area[around[k]];
        if (nx * unit[g] + ny * unit[g + 1] + nz * unit[g + 2] < CREASE) continue;
        x += unit[g] * share;
        y += unit[g + 1] * share;
        z += unit[g + 2] * share;
      }
    const length = Math.sqrt(x * x + y * y + z * z);
    if (length) (x /= length), (y /= length), (z /= length);
    else (x = nx), (y = ny), (z = nz);
    let corner = last[v];
    while (corner >= 0 && x * normal[3 * corner] + y * normal[3 * corner + 1] + z * normal[3 * corner + 2] < ALIKE) corner = earlier[corner];
    if (corner < 0) {
      corner = earlier.length;
      earlier.push(last[v]);
      last[v] = corner;
      position.push(points[3 * v], points[3 * v + 1], points[3 * v + 2]);
      normal.push(x, y, z);
    }
    index[i] = corner;
  }
  return { position: new Float32Array(position), normal: new Float32Array(normal), index };
}

// Ends of every edge at which two triangles meet at more than the crease.
export function edgesOf(points, triangles, unit) {
  const seen = new Map(); // edge -> the first triangle at it
  const size = points.length / 3;
  const lines = [];
  for (let i = 0; i < triangles.length; i++) {
    const f = (i / 3) | 0;
    const a = triangles[i], b = triangles[i % 3 === 2 ? i - 2 : i + 1];
    const key = a < b ? a * size + b : b * size + a;
    const g = seen.get(key);
    if (g === undefined) seen.set(key, f);
    else {
      seen.delete(key);
      const turn = unit[3 * f] * unit[3 * g] + unit[3 * f + 1] * unit[3 * g + 1] + unit[3 * f + 2] * unit[3 * g + 2];
      if (turn < CREASE) lines.push(points[3 * a], points[3 * a + 1], points[3 * a + 2], points[3 * b], points[3 * b + 1], points[3 * b + 2]);
    }
  }
  return new Float32Array(lines);
}
