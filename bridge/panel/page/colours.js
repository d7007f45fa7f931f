// Colours of the drawings: light enough for a dark room, and each thing also has its own shape or dash.

export const COLOUR = {
  ground: "#0c0d0b",
  stage: "#1a1d18",
  grid: "#262a23",
  gridStrong: "#333829",
  text: "#ece8dc",
  quiet: "#b4b1a2",
  area: "#e9b44c",
  more: "#cfc48f",
  floor: "#8aa69b",
  noLight: "#f08a78",
  mark: "#d9d5c5",
  head: "#9db8ff",
  beam: "#ffe3a1",
  target: "#fff3d6",
  trail: "#e9b44c",
  hand: "#7cc4b2",
  bad: "#f08a78",
};
export const FONT = '"Segoe UI", "Noto Sans", "DejaVu Sans", system-ui, sans-serif';
