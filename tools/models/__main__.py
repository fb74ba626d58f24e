"""tools/run.sh tools.models [FOLDER]"""
from .draw import main

main()
