"""The plan: its model (the documented JSON) and its making (running the stages)."""
