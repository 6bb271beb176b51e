"""From a result to what people see."""
