"""What is said: findings, their order and causes, how numbers and places are worded, cautions."""
