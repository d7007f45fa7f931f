// The floor that a performer stands on: heights of stage and floors, and where a ray of sight first meets them. Metres.

export const inside = ([x, y], corners) => {
  let odd = false;
  corners.forEach(([x0, y0], i) => {
    const [x1, y1] = corners[(i + 1) % corners.length];
    if (y0 > y !== y1 > y && x < x0 + ((y - y0) * (x1 - x0)) / (y1 - y0)) odd = !odd;
  });
  return odd;
};

// The scene's floors as they stand now.
export function floorsNow(scene, frame) {
  return scene.floors.map(({ name, corners, height }) => ({ name, corners, height: frame?.floors?.[name] ?? height }));
}

// Height of the floor at a place of the plan: the highest that lies there, elsewhere 0.
export function heightAt(floors, x, y) {
  const there = floors.filter((floor) => inside([x, y], floor.corners)).map((floor) => floor.height);
  return there.length ? Math.max(...there) : 0;
}

// Where the ray from `eye` along `way` first meets stage, a floor or the side of one: [x, y], or null towards the sky.
export function meets(floors, eye, way) {
  const at = (t) => eye.map((value, i) => value + way[i] * t);
  const found = [];
  for (const height of [0, ...floors.map((floor) => floor.height)]) {
    const t = (height - eye[2]) / way[2];
    if (!(t > 0) || !Number.isFinite(t)) continue;
    const [x, y] = at(t);
    if (heightAt(floors, x, y) === height) found.push(t);
  }
  for (const { corners, height } of floors) found.push(...sides(corners, height, eye, way));
  if (!found.length) return null;
  const t = Math.min(...found);
  return t < 1000 ? at(t).slice(0, 2) : null;
}

// How far along the ray the upright sides between stage and floor are.
function sides(corners, height, eye, way) {
  const [low, high] = [Math.min(0, height), Math.max(0, height)];
  return corners.flatMap(([x0, y0], i) => {
    const [x1, y1] = corners[(i + 1) % corners.length];
    const [ex, ey] = [x1 - x0, y1 - y0];
    const turn = way[0] * ey - way[1] * ex;
    if (Math.abs(turn) < 1e-12) return [];
    const [fx, fy] = [x0 - eye[0], y0 - eye[1]];
    const t = (fx * ey - fy * ex) / turn;
    const along = (fx * way[1] - fy * way[0]) / turn;
    const z = eye[2] + way[2] * t;
    return t > 0 && along >= 0 && along <= 1 && z > low && z < high ? [t] : [];
  });
}
