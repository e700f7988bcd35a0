"""What tests share: small circuits, random amps, invented measurements, faults in saves."""
