"""What goes to the field and to the engineer: a page for each lot, a packet for one."""
