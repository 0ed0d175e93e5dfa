"""Pure numbers: chemistry, electrodes, curves, statistics. Imports nothing of ours."""
