"""What the commands around the desk do: serve it, manage its people, write its report."""
