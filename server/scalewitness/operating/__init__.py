"""Testing a service that is set up, from where its operator sits."""
