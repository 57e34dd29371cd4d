"""Words that teach: why the limit pointer moved, the crossover worked out, the speed ruler."""
