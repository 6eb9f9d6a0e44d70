"""Use cases, one module a stage: plain values in, plain values out."""
