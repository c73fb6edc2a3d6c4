"""Pure physics kernels: SI, absolute pressure, arrays in and arrays out, a module per subject."""
