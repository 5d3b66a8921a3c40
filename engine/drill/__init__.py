"""The drill: faults put into a healthy take at moments nobody knows, and the crew's score."""
