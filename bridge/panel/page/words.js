// The states of a head, for people: a shape and words for each. Problems have another shape than what is as wanted.

const STATES = {
  lit: ["dot", "Lit"],
  outside: ["triangle", "Outside"],
  dark: ["ring", "Dark"],
  limit: ["triangle", "At a limit"],
  "out-of-reach": ["triangle", "Out of reach"],
  "too-near": ["triangle", "Too near"],
  "no-light": ["triangle", "No-light area"],
  moving: ["ring", "Moving"],
  unsolved: ["cross", "Not solved"],
  held: ["square", "Held"],
  out: ["cross", "Out"],
  still: ["bar", "Still"],
  "no-input": ["ring", "No input"],
  sighting: ["square", "Sighting"],
  desk: ["diamond", "Desk's, not guarded"],
  "": ["ring", "Not heard"],
};

export const shapeOf = (state) => (STATES[state] ?? ["square", state])[0];
export const wordOf = (state) => (STATES[state] ?? ["square", state])[1];

// A name in pieces at which it may be cut into lines, so that nothing of it is left out: ["truss-", "east-", "upper-", "01"].
export function pieces(name) {
  return name.split(/(?<=[-_])/u);
}
