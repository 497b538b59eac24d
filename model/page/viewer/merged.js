// The model before its tubes are laid again: the new one, with those tubes and fittings that it does not have yet as they
// lay before. They are to be seen, not judged: the strip says that they are still being checked.

export function merged(fresh, whole) {
  const there = new Set(fresh.told.pieces.map((p) => p.name));
  const pieces = whole.told.pieces.filter((p) => !there.has(p.name));
  const late = new Set(pieces.map((p) => p.name));
  const meshes = [...fresh.meshes], coarse = { ...fresh.told.coarse }, at = new Map();
  const taken = (i) => at.get(i) ?? at.set(i, meshes.push(whole.meshes[i]) - 1).get(i);
  const bodies = whole.told.bodies.filter((b) => late.has(b.piece)).map((b) => {
    const mesh = taken(b.mesh), afar = whole.told.coarse[b.mesh];
    if (afar !== undefined) coarse[mesh] = taken(afar);
    return { ...b, mesh };
  });
  const told = {
    ...fresh.told,
    looks: { ...whole.told.looks, ...fresh.told.looks },
    pieces: [...fresh.told.pieces, ...pieces],
    bodies: [...fresh.told.bodies, ...bodies],
    coarse,
  };
  return { told, meshes };
}
