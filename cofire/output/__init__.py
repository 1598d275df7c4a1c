"""What people see: tables, figures, sheets and the command line."""
