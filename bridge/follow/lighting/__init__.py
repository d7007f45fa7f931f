"""How much light: zoom and focus, gates and fades, evenness, and the guard against flashes."""
