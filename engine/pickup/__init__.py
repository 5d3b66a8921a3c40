"""Who is heard on which other track: learned while all is well, told when nothing covers them."""
