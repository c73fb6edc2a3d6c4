"""The virtual vehicle: one physical model of plant, control unit and wiring."""
