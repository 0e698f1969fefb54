"""The mechanics: half-section to motion, torque, directions, strain, error. Nothing prints or draws."""
