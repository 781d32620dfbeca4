"""`python -m seqlang` is `bellcrank`."""

from seqlang.command import main

if __name__ == "__main__":
    main()
