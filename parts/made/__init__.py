"""Parts one makes: risers, spacers, brackets, adapters, sheets, plain shapes."""
