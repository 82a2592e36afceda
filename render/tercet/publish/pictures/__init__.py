"""Pictures drawn here: chord diagrams, the fretboard, the handout, the picture of a take."""
