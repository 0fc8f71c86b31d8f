"""A whole job file from a few numbers: what is asked, what is counted, which work follows."""
