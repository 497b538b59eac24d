"""The page: one HTML file that shows a build, its verdict first, to whoever opens it, without a network."""
