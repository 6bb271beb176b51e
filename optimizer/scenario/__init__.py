"""Files to validated objects; the only place that knows TOML and CSV."""
