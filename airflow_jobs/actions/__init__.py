"""The write side: one function a business act; who may do it, what must hold, what follows."""
