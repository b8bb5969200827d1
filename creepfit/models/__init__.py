"""Creep models: functions of time with non-negative amplitudes, one file a model."""
