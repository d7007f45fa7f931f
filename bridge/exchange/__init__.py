"""Other people's files in, solved poses out: GDTF (DIN SPEC 15800), MVR (DIN SPEC 15801) and CSV."""
