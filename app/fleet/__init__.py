"""Several carts on one board: what a watch publishes by MQTT 5, and the view of all carts."""
