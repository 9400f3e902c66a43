"""What an unknown logger file says of its own layout, with evidence and doubts; never a guess."""
