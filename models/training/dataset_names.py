"""What is kept from training for the check on frames without cows."""

TEST_PICTURES = ("astronaut", "chelsea", "bus", "zidane", "china", "rocket", "brick", "coins",
                 "motorcycle_right", "clock_motion", "hubble_deep_field", "text")  # fmt: skip
"""Pictures that Python packages ship, by file stem."""
TRAINING_ANIMALS = ("goat", "gnu-stand", "mountaingoat", "indian_blackbuck", "ram", "sheep_lamb")
TEST_ANIMALS = ("sheep", "gnu-baby-stand", "gnu-sitting")
"""Cut-outs of animals other than cattle, by file stem."""
