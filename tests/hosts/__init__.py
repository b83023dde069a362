"""Every host against the same registry."""
