"""Where the Django project is put together: settings, addresses, the server's door, and the pages of no stage."""
