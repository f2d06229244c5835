"""Who lives here, what it could bring, poison, eat, sting or outgrow, and what touched what."""
