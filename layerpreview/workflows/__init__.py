"""What a person does with the tool, one function each; the command line and the desk are thin doors to these."""
