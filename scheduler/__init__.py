"""The service: reads the job and the weather, plans, stores, tells people."""
