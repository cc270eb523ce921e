"""python -m flowcast"""

from flowcast.cli import main

main()
