<!-- scripts -->
