"""Sources merged, errors, scenarios, past years, the correction for a site."""
