"""Is the set of requirements strong enough? Every small change to a row must break one."""
