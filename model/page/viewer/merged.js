// The model before its tubes are laid again: the new one, with those tubes and fittings that it does not have yet as they
// lay before. They are to be seen, not judged: the strip says that they are still being checked.

export function merged(fresh, whole) {
  const there = new Set(fresh.told.pieces.map((p) => p.name));
  const pieces = whole.told.pieces.filter((p) => !there.has(p.name));
  const late = new Set(pieces.map((p) => p.name));
  const meshes = [...fresh.meshes], at = new Map();
  const bodies = whole.told.bodies.filter((b) => late.has(b.piece)).map((b) => {
    if (!at.has(b.mesh)) at.set(b.mesh, meshes.push(whole.meshes[b.mesh]) - 1);
    return { ...b, mesh: at.get(b.mesh) };
  });
  const told = {
    ...fresh.told,
    looks: { ...whole.told.looks, ...fresh.told.looks },
    pieces: [...fresh.told.pieces, ...pieces],
    bodies: [...fresh.told.bodies, ...bodies],
  };
  return { told, meshes };
}
