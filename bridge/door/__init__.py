"""The one door: events come in, packets go out; everything between replays byte for byte."""
