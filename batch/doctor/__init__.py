"""Examination of a machine before its first night: what is installed, what will stand in the way, how fast it is."""
