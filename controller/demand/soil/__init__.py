"""The water in the ground: what it holds, what it loses, the daily balance."""
