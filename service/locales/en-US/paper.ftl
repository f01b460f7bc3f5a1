# Printed sheets and keys.
