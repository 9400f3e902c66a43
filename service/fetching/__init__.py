"""The network: what stations are asked, politely and within bounds."""
