"""The run sheet as a state machine over a box, an operator and a recorder, all handed in."""
