"""Who does what: what operators have set, the heads in their hands, and the one role of every head."""
