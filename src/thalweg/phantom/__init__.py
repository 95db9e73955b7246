"""An artificial abdomen with known ureters, for demonstration and checking."""
