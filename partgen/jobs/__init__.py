"""What a person asks for: build, trial, measure, coupon. Knows all stages, never prints."""
