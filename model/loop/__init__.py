"""The loop as asked for: ports, fittings and their chains, what is joined to what, where coolant and air stand."""
