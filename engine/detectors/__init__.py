"""One file a fault; `registry` is the table of them."""
