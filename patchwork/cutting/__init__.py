"""What is cut: templates, rotary cuts, strips and how much cloth to buy."""
