"""What the `racket-fleet` command needs besides the computation: printing, demo, serving, failures in words."""
