"""Every driver by its name, through the laws that all drivers keep."""
