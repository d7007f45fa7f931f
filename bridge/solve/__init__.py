"""From sightings, tapes and priors to poses, bounds, doubts and advice."""
