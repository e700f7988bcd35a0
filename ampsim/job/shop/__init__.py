"""All jobs of a shop at a glance: which are due, what each waits for, where something was done before; packing one."""
