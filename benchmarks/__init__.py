"""Speed and accuracy, measured side by side with the named peer in one run."""
