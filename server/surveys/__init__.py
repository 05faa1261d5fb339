"""Readings, tables of readings, and plan and readings made one."""
