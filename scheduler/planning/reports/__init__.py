"""Views of what was decided: brief, tonight, week, odds, orders, skill."""
