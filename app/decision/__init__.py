"""From findings to money: repairs called for, their chance and cost, an offer and an answer with its reasons."""
