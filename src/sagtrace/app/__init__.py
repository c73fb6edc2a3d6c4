"""Use cases, and the Protocols that the outside must satisfy."""
