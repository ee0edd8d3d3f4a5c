"""One database of each schema that was ever released, as that program wrote it; none is ever made anew."""
