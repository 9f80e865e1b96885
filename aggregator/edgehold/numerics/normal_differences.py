"""How far apart two draws from one normal distribution lie, in its standard deviations."""

TYPICAL, MOST = 0.954, 2.77  # √2 times the median and the 95 % point of a normal's absolute value
