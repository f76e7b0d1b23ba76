"""From readings and earlier batches to a posterior over fermentations."""
