"""The child process of `interfaces`: lists them on standard output and ends."""

from fluxbench.links._interfaces import answer_of_child

if __name__ == "__main__":
    print(answer_of_child())
