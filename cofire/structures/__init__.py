"""Stress through the firing: one constitutive law, several shapes."""
