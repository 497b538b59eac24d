// Reads what `contents.py` and `packing.py` wrote: JSON and meshes, inflated by the browser itself. A mesh is unpacked when
// it is first asked for: most fine ones never are.

function bytesOf(text) {
  const letters = atob(text.trim()), out = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i++) out[i] = letters.charCodeAt(i);
  return out;
}

async function inflated(text) {
  const stream = new Blob([bytesOf(text)]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

const PLANES = 4, COLUMNS = 3;

// Rows of three, written column after column: byte planes over all values, folded differences from row to row.
function rows(bytes, out, scale) {
  const count = out.length / COLUMNS, n = out.length;
  for (let i = 0, k = 0; i < COLUMNS; i++) {
    let value = 0;
    for (let row = 0; row < count; row++, k++) {
      const folded = (bytes[k] | (bytes[k + n] << 8) | (bytes[k + 2 * n] << 16) | (bytes[k + 3 * n] << 24)) >>> 0;
      value += folded & 1 ? -(folded >>> 1) - 1 : folded >>> 1;
      out[COLUMNS * row + i] = value * scale;
    }
  }
  return out;
}

class Mesh {
  constructor(raw, at, [vertices, triangles], steps) {
    this.middle = at + PLANES * COLUMNS * vertices;
    this.end = this.middle + PLANES * COLUMNS * triangles;
    Object.assign(this, { raw, at, steps });
  }

  get points() {
    const bytes = this.raw.subarray(this.at, this.middle);
    return (this.unpacked ??= rows(bytes, new Float32Array(bytes.length / PLANES), 1 / this.steps));
  }

  get triangles() {
    const bytes = this.raw.subarray(this.middle, this.end);
    return (this.corners ??= rows(bytes, new Uint32Array(bytes.length / PLANES), 1));
  }
}

export async function read(contentsText, meshesText) {
  const [json, raw] = await Promise.all([inflated(contentsText), inflated(meshesText)]);
  const told = JSON.parse(new TextDecoder().decode(json));
  let at = 0;
  const meshes = told.meshes.map((counts) => {
    const mesh = new Mesh(raw, at, counts, told.steps);
    at = mesh.end;
    return mesh;
  });
  return { told, meshes };
}
