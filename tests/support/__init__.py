"""Strategies and fixtures that several layers of tests use."""
