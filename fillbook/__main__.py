from fillbook.cli import main

main()
