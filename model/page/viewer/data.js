// Reads what `contents.py` and `packing.py` wrote: JSON and meshes, inflated by the browser itself.

const bytesOf = (text) => Uint8Array.from(atob(text.trim()), (c) => c.charCodeAt(0));

async function inflated(text) {
  const stream = new Blob([bytesOf(text)]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

export async function read(contentsText, meshesText) {
  const [json, raw] = await Promise.all([inflated(contentsText), inflated(meshesText)]);
  const told = JSON.parse(new TextDecoder().decode(json));
  let at = 0;
  const column = (bytes, count, i, out, scale) => {
    // One column of three: byte planes over all 3 * count values, folded differences from row to row.
    const n = 3 * count;
    let value = 0;
    for (let row = 0, k = i * count; row < count; row++, k++) {
      const folded = (bytes[k] | (bytes[k + n] << 8) | (bytes[k + 2 * n] << 16) | (bytes[k + 3 * n] << 24)) >>> 0;
      value += folded & 1 ? -(folded >>> 1) - 1 : folded >>> 1;
      out[3 * row + i] = value * scale;
    }
  };
  const rows = (count, out, scale) => {
    const bytes = raw.subarray(at, at + 12 * count);
    for (let i = 0; i < 3; i++) column(bytes, count, i, out, scale);
    at += 12 * count;
    return out;
  };
  const meshes = told.meshes.map(([vertices, triangles]) => ({
    points: rows(vertices, new Float32Array(3 * vertices), 1 / told.steps),
    triangles: rows(triangles, new Uint32Array(3 * triangles), 1),
  }));
  return { told, meshes };
}
