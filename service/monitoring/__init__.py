"""What whoever runs the service sees: lines of JSON in the log, figures for Prometheus."""
