"""A second model checker (`spin`) asked the same questions, through the Promela text of a trial."""
