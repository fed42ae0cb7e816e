"""HTTP resources and problem details."""
