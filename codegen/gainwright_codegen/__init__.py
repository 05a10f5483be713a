"""The C runtime, the exporter and the compiler of the exported C."""
