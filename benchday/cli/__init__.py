"""The commands: they show what the journal says and pass on what a person decides; they hold no state."""
