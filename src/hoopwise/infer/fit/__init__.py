"""The search for the tensions that explain a round."""
