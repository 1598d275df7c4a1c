"""What the printer needs: green shape, pastes, changes of paste, test pieces."""
