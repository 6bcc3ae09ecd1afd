"""The page in the browser: the whole job, served from this machine."""
